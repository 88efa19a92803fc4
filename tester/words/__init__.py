"""Every sentence that a person reads about faults, steps and cautions. Pure."""
