"""The client package: what it sends, how it reads answers, and a life of an order with it."""
