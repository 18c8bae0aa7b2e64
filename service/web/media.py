"""Media types beyond plain JSON, named once for the routes and the contract."""

LINKSET_MEDIA = "application/linkset+json"
NDJSON_MEDIA = "application/x-ndjson"
TEXT_MEDIA = "text/plain"
