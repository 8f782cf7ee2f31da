"""History: captured, kept, shown. Knows no other app."""
