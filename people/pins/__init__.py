"""The short PIN by which somebody takes over at a tablet, and nowhere else."""
