"""The servers of the default run, our processes on them, and the walkthrough."""
