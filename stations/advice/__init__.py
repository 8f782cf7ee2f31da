"""What to do after a check shot: from the station's own shots, else from the shot model."""
