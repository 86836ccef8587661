"""Logging: one line per event, with the id of its request."""

import logging.config

import structlog
from django.http import HttpRequest

# Minimum levels of libraries that log more than anybody reads.
LIBRARY_LOG_LEVELS = {
    "axes": "WARNING",
    "celery.beat": "WARNING",
    "kombu.connection": "ERROR",
    "django.utils.autoreload": "WARNING",
}


def mask_token(text: str, request: HttpRequest | None) -> str:
    """Mask the token of a link: a reader of the log could use it."""
    match = request.resolver_match if request else None
    token = match.kwargs.get("token") if match else None
    return text.replace(token, "…") if token else text


def _mask_logged_token(
    logger: object, method: str, event: structlog.typing.EventDict
) -> structlog.typing.EventDict:
    """Mask the token where a library logs a request, such as a refusal by Django."""
    request = getattr(event.get("_record"), "request", None)
    if isinstance(request, HttpRequest):
        event["event"] = mask_token(event["event"], request)
    return event


def configure_logs(level: str, *, as_json: bool) -> None:
    """Log the program and its libraries to standard error, in one format."""
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_logger_name,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
    ]
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    last: list[structlog.typing.Processor] = (
        [structlog.processors.format_exc_info, structlog.processors.JSONRenderer()]
        if as_json
        else [structlog.dev.ConsoleRenderer(colors=False)]
    )
    formatter = {
        "()": structlog.stdlib.ProcessorFormatter,
        "foreign_pre_chain": [*shared, _mask_logged_token],
        "processors": [
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            *last,
        ],
    }
    logging.config.dictConfig(
        {
            "version": 1,
            "disable_existing_loggers": False,
            "formatters": {"line": formatter},
            "handlers": {
                "stderr": {"class": "logging.StreamHandler", "formatter": "line"}
            },
            "root": {"handlers": ["stderr"], "level": level},
            "loggers": {
                name: {"level": least} for name, least in LIBRARY_LOG_LEVELS.items()
            },
        }
    )
