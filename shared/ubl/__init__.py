"""UBL 2.1 documents (OASIS Standard, 4 November 2013): read, written, checked."""
