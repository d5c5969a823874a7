"""graftlog: event log and REST service for nurseries that graft fruit trees at several sites."""

__version__ = "0.1.0"
