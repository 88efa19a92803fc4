"""The job as an event log: state, actions, and the measuring sequence on the board."""
