"""Tags and papers as PDF: what a tag says, sheets in millimetres, codes to scan. No database."""
