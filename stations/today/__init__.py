"""What each bar needs today, by its own clock: the first page of who works there."""
