"""Planning: the patches that rules require, in a good order, and the time to measure them."""
