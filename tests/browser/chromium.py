"""A Chromium of the system without a window, which can reach nothing but the file that it shows."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from playwright.async_api import Browser, Page, Request, Route, async_playwright

from peers.requirements import require_peer

Scheme = Literal["light", "dark"]
SETTINGS = (  # a fresh profile is made by each start; the rest keeps it from speaking to anyone by itself
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


@dataclass(slots=True)
class Shown:
    """A page that is shown, what its console said, and what it asked the network for."""

    page: Page
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    async def violations(self) -> list[str]:
        """Return what axe finds against the page, every rule of it, the advice too."""
        await self.page.evaluate(AXE)
        found: dict[str, Any] = await self.page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
        assert len(found["passes"]) > 10, "axe did not look"
        return [f"{one['id']}: {one['help']}: {one['nodes'][0]['html']}" for one in found["violations"]]

    async def overflow_px(self) -> int:
        """Return how far the page can be scrolled sideways."""
        width: int = await self.page.evaluate(
            "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        return width


@asynccontextmanager
async def running_chromium() -> AsyncIterator[Browser]:
    """Start a browser, and end it."""
    program = require_peer("chromium")
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=program, args=list(SETTINGS))
        try:
            yield browser
        finally:
            await browser.close()


@asynccontextmanager
async def shown(
    browser: Browser, file: Path, *, width: int, height: int = 800, scheme: Scheme, dots_per_pixel: float = 1
) -> AsyncIterator[Shown]:
    """Show a file in a window of this width in CSS pixels."""
    context = await browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, device_scale_factor=dots_per_pixel
    )
    try:
        page = await context.new_page()
        result = Shown(page)

        async def only_the_file(route: Route, request: Request) -> None:
            result.asked.append(request.url)
            if request.url == file.as_uri():
                await route.continue_()
            else:
                await route.abort()

        await page.route("**/*", only_the_file)
        page.on("console", lambda message: result.said.append(message.text))
        page.on("pageerror", lambda error: result.said.append(str(error)))
        page.on("dialog", lambda dialog: result.said.append(dialog.message))
        await page.goto(file.as_uri())
        yield result
    finally:
        await context.close()
