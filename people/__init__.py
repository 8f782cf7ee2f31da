"""Users, roles, signatures, and what pages and endpoints are built with."""
