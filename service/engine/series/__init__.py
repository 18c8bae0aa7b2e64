"""The weeks ahead of one screen: sessions chosen one after the other, each the best one given
what the earlier ones of its week have addressed."""

from service.engine.series.series import series

__all__ = ["series"]
