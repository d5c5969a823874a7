"""What each group of operations is about, in words for the public description."""

TAGS = {
    "Service": "What this is, whether it is well, and how to read it. Most of it needs no key.",
    "Events": "What people record, and the log of it. Everything else here is worked out from it.",
    "To put right": "What somebody recorded and the log refused, kept until it is put right.",
    "Catalogue": "Sites, places, cultivars, rootstocks, sizes, source trees, check plans, rules.",
    "Lots": "Budwood, liners and trees by lot: what they are, where they stand, what they came of.",
    "Reservations": "What customers have claimed, and what of it is still open.",
    "Sales": "What was sold, from which lots, where it came from; what came back; licences owed.",
    "Tags and papers": "Tags to scan for places, lots, bags; sale tags, plant passports.",
    "Holds": "Stops on lots, sources, places and sites, with all that descends from them.",
    "Work orders": "Grafting to do: what, onto what, how many, by when, and how far it has come.",
    "Sheets": "Records as CSV: templates to fill in, to print, and to take in.",
    "Stock": "What stands where, now, on a day, and as it was known at a time.",
    "Take": "How many grafts took, what was lost and why, and what of the grafted became saleable.",
    "Checks": "What is to be looked at when, and what is overdue. Nothing recorded is not 'well'.",
    "Forecast": "Temperatures of sites, and when lots will be ready by them.",
    "Alerts": "What wants somebody, and saying that somebody has seen to it.",
    "Calendars": "Days of work in a person's own calendar program, by an address to subscribe to.",
    "Webhooks": "What is recorded, sent to an address of yours, signed and in order.",
    "People": "Who signs in to the pages, what they may do, and their devices.",
    "Contacts": "Names and addresses behind the references in the log. They can be erased.",
}
