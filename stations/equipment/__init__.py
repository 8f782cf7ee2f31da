"""Sites, machines, stations (one brewing group each) and their slots."""
