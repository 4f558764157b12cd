"""The sheet's pictures: their data, and the canvas that they are drawn on."""
