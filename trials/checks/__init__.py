"""What a trial has to say for itself: is it safe, can it have been observed, may it be sold, and by which tests."""
