"""After a calibration: the same versions, translated anew for one station."""
