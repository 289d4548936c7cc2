"""The service: pages, JSON and the command line; reads typed input, calls one thing, renders."""
