"""Who hears of what: matters, what each person chose, and the messages that go out."""
