"""What is to be looked at now and next, and when to pour for a day."""
