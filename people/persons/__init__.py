"""People: users, their roles and sites, and the one table of who may do what."""
