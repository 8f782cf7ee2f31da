"""The demo scenario: an invented group of five bars, told through the real actions.

Nothing here writes a row that an action could write, so the history of the demo is a real one.
Dates of roasts lie in the past; entries carry the moment they were written.
"""
