"""Media types beyond plain JSON, named once for the routes and the contract."""

HTML_MEDIA = "text/html"
LINKSET_MEDIA = "application/linkset+json"
NDJSON_MEDIA = "application/x-ndjson"
PDF_MEDIA = "application/pdf"
TEXT_MEDIA = "text/plain"
