"""From TOML to checked records to a frozen graph, or to every fault of the pack at once."""

from service.compiler.compile import compile_pack

__all__ = ["compile_pack"]
