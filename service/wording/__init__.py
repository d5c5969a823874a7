"""What a person reads, in their language and their units: words, dates, numbers, measures.

`words.py` finds a text in Spanish, `shown.py` writes a day, a number or a measure, `es/` holds a
``.po`` file for each area of pages and mails. English is what the code says.
"""
