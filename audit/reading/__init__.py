"""The history as it is read: filters, rows in words, values over time."""
