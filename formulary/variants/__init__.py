"""What goes from a base into its variants, and back."""
