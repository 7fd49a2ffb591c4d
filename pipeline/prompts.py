"""Parts of a note that repeat its lines or ask. By itself, so that a search need not load the types of the model."""

# They are kept, but hold nothing that was found or said.
PROMPT_SECTIONS = ("again", "part", "check", "not_looked_at", "places", "struck")
