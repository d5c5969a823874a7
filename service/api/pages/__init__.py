"""Pages for people about the interface itself, and the style and script they come with."""
