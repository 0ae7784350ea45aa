"""What to pour next: the small change that would best tell the leading explanations apart."""
