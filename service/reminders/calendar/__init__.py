"""Calendars that people subscribe to in their own calendar program (RFC 5545 and 7986).

`addresses.py` keeps who has which calendar; `days.py` finds what is due when and remembers what
calendars were shown; `entries.py` says it in words; `text.py` writes it as iCalendar.

A subscribed calendar is a view: programs ask again when they like, some once a day, so mails are
what reminds. Entries are events and not tasks: many programs show no tasks of a subscription.
"""
