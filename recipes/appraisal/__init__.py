"""Appraisal: what follows from a formula, worked out while a draft is edited, never stored."""
