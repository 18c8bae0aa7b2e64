"""The version of the published contract, named by every answer and by the contract itself."""

CONTRACT: str = "1.0.0"
