"""Carrying an approved version to slots: where, when, the plan, the signature, the run."""
