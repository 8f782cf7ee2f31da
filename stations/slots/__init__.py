"""What slots should hold and do hold: placing, read-backs, setting by hand."""
