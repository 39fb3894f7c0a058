"""What all figures share: papers and screens, palette, letters, labels, axes, conditions, the drawing."""
