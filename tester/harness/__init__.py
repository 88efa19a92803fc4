"""What is on the bench, as values: cavities, netlists, readings, expectations, verdicts. Pure."""
