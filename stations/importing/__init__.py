"""Equipment from one CSV file: read, compared with what is there, and written all or nothing."""
