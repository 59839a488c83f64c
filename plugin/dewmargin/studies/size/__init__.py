"""Size: loads, and the least size of each equipment that meets them."""
