"""OpenTelemetry spans, off unless an address is set: route, method, status and time, nothing else.

Apart from the trace of the log because it needs the extra `otel`. The identifiers are those that
log and `traceresponse` name, and a caller's trace goes on in ours (W3C Trace Context).
"""

import time

from opentelemetry.context import Context
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import SpanProcessor, TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.sdk.trace.id_generator import IdGenerator
from opentelemetry.trace import (
    NonRecordingSpan,
    SpanContext,
    SpanKind,
    Status,
    StatusCode,
    TraceFlags,
    set_span_in_context,
)

from service import __version__
from service.web.metrics import NO_ROUTE
from service.web.trace import Trace


class _Given(IdGenerator):
    """Hands out the identifiers that a request has already."""

    trace = 0
    span = 0

    def generate_trace_id(self) -> int:
        """The trace of the request."""
        return self.trace

    def generate_span_id(self) -> int:
        """The span of the request."""
        return self.span


class Spans:
    """Makes one span of each answered request, in one process."""

    def __init__(self, processor: SpanProcessor) -> None:
        self._ids = _Given()
        resource = Resource.create({"service.name": "movewright", "service.version": __version__})
        self._provider = TracerProvider(id_generator=self._ids, resource=resource)
        self._provider.add_span_processor(processor)
        self._tracer = self._provider.get_tracer("movewright", __version__)

    def record(self, trace: Trace, route: str, method: str, status: int, took_s: float) -> None:
        """Make the span of a request that was answered just now."""
        # INVARIANT: nothing else of this process asks for identifiers between here and the start.
        self._ids.trace, self._ids.span = int(trace.trace, 16), int(trace.span, 16)
        known = route != NO_ROUTE
        ended = time.time_ns()
        span = self._tracer.start_span(
            f"{method} {route}" if known else "no route",
            context=_parent(trace),
            kind=SpanKind.SERVER,
            start_time=ended - int(took_s * 1e9),
            attributes={
                "http.response.status_code": status,
                # Without a route the method is whatever the caller wrote.
                **({"http.request.method": method, "http.route": route} if known else {}),
            },
        )
        if status >= 500:
            span.set_status(Status(StatusCode.ERROR))
        span.end(ended)

    def close(self) -> None:
        """Send what is left."""
        self._provider.shutdown()


def spans_to(endpoint: str) -> Spans:
    """Spans that go to a collector by OTLP over HTTP, in batches from a thread of their own."""
    return Spans(BatchSpanProcessor(OTLPSpanExporter(endpoint)))


def _parent(trace: Trace) -> Context:
    """The caller's span, or none."""
    if not trace.parent:
        return Context()
    came = SpanContext(
        int(trace.trace, 16), int(trace.parent, 16), True, TraceFlags(int(trace.flags, 16))
    )
    return set_span_in_context(NonRecordingSpan(came), Context())
