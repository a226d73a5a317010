"""How days are read in forms, by language."""
