"""The service: HTTP in, HTTP out. The only room that knows the web framework and the server."""
