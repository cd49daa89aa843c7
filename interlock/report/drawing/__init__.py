"""What drawings are made of: text widths, shapes, marks of devices, the grid of a floor, what a state says."""
