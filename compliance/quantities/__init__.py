"""What is measured: the catalogue of quantities and the functions behind it."""
