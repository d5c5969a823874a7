"""Where the books are kept: the database server, its roles, its pools and its migrations."""
