"""The pages of this computer: FastAPI on loopback, for the one person who opened the link."""

from pipeline.web.app import create_app
from pipeline.web.serve import serve

__all__ = ["create_app", "serve"]
