"""How much a part, a joint or a laminate can bear."""
