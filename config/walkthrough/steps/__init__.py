"""What each person does, chapter by chapter."""
