"""A site's weather as it was sent: taken in, checked, kept in versions, put together by day.

Temperatures and readings of the past, forecasts of the days ahead, and how degree-days are counted.
"""
