"""The terminal app for the bench."""
