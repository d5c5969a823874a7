"""What a device is called in lists: its browser and system, as far as it says so.

Only good enough for a person to tell their telephone from the office's machine; nothing rests on
it, since a browser says what it likes.
"""

# In this order: many say that they are others too.
_BROWSERS = (
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
_SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("CrOS", "ChromeOS"),
    ("Macintosh", "Mac"),
    ("Linux", "Linux"),
)


def name_of_device(user_agent: str | None) -> str:
    """Such as ``Chrome, Android``; empty for one that says nothing known."""
    said = (user_agent or "")[:1000]
    found = (
        next((name for mark, name in known if mark in said), None)
        for known in (_BROWSERS, _SYSTEMS)
    )
    return ", ".join(filter(None, found))
