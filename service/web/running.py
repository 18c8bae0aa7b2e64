"""What a running process holds beside its pack: counts, quotas, its queue, and its end in sight."""

from msgspec import Struct

from service.model.graph import Pack
from service.web.contract.operations import OPERATIONS
from service.web.limits import Quotas, Work
from service.web.metrics import Metrics
from service.web.settings import Settings


class Life(Struct):
    """Whether this process is on its way out."""

    draining: bool = False


class Running(Struct, frozen=True, kw_only=True):
    """Metrics and quotas lie in memory that all workers share; life and work are one worker's."""

    metrics: Metrics
    quotas: Quotas
    life: Life
    work: Work

    def become(self, worker: int) -> None:
        """From now on this process is that worker."""
        self.metrics.become(worker)
        self.quotas.become(worker)


def running_of(pack: Pack, settings: Settings) -> Running:
    """What the workers of one service share, made before any of them starts."""
    routes = [operation.path for operation in OPERATIONS]
    return Running(
        metrics=Metrics(routes, pack, settings.workers),
        quotas=Quotas(settings.workers),
        life=Life(),
        work=Work(settings.max_work, settings.max_bulk_requests),
    )
