"""Devices that somebody wants to be told on: web push, in the open standards of the browsers."""
