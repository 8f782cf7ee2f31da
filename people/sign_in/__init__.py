"""Signing in: passwords, passkeys, second factor, links to set a password."""
