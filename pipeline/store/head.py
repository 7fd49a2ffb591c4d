"""The newest revision of the database, here so that a reader need not load what writes."""

HEAD = "0006"  # under migrations/versions
