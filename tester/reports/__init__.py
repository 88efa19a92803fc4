"""Pages, labels and tables made from a record."""
