"""The record looked after: made again from its events."""

from pipeline.config import Config
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store


def rebuild(config: Config, stages: Stages) -> int:
    """Make all derived tables again from events and blobs; returns the number of visits. Raises StoreError."""
    with Store(config.home) as store:
        return store.rebuild(lambda record: derive(record, stages))
