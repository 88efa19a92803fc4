"""The store of events, its hash chain, search and figures."""
