"""When trees will be ready: degree-days, the weather ahead, requirements of thermal time.

The arithmetic (`degree_days`, `requirements`, `weather`, `ready`) is pure: no I/O, no clock.
`temperatures` and `ready_view` bring it the nursery's records and store what it says.
"""
