"""What differed between pours, as columns in steps that a maker understands."""
