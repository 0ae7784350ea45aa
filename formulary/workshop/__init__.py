"""What recipes are worked out by, and all that is worked out of them: by a formulary's files, and by loose ones."""
