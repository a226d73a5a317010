"""Whether mail leaves the shop, by which server, and how one tries it."""
