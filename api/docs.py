"""The page to read and try the interface: served from the package, nothing from elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import fastapi_offline
from fastapi import FastAPI, Response
from fastapi.responses import HTMLResponse
from fastapi.staticfiles import StaticFiles

_ASSETS: Final = Path(fastapi_offline.__file__).parent / "static"
_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:;"
    " connect-src 'self'; frame-ancestors 'none'"
)
_PAGE: Final = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Quarterfoot: the interface</title>
<link rel="stylesheet" href="docs/assets/swagger-ui.css">
<link rel="icon" href="data:,">
</head>
<body>
<div id="interface"></div>
<script src="docs/assets/swagger-ui-bundle.js"></script>
<script src="docs/start.js"></script>
</body>
</html>
"""
_START: Final = """SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#interface",
  deepLinking: true,
  validatorUrl: null,
  presets: [SwaggerUIBundle.presets.apis, SwaggerUIBundle.SwaggerUIStandalonePreset],
});
"""


def add_docs(app: FastAPI) -> None:
    """Serve the page at ``/docs``, its script and its style sheet below it."""

    @app.get("/docs", include_in_schema=False)
    async def page() -> Response:
        return HTMLResponse(_PAGE, headers={"content-security-policy": _POLICY})

    @app.get("/docs/start.js", include_in_schema=False)
    async def start() -> Response:
        return Response(_START, media_type="text/javascript")

    app.mount("/docs/assets", StaticFiles(directory=_ASSETS), name="docs-assets")
