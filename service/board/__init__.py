"""Pages for people: made here, fast, in their language, for one hand, and without script too."""
