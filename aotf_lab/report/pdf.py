"""A page as PDF, by WeasyPrint, which is an extra: the same bytes from the same page."""

from __future__ import annotations

from aotf_lab.errors import AotfLabError, Said

__all__ = ["pdf_of", "require_pdf"]


def require_pdf() -> None:
    """Raise ``AotfLabError`` with the cure unless WeasyPrint is here and finds the libraries that it draws with."""
    try:
        import weasyprint  # noqa: F401
    except ImportError:
        raise _refused("it is not installed", 'pip install "aotf_lab[pdf]"') from None
    except OSError as error:  # it is there, and a library of the system (Pango) is not
        raise _refused(str(error).splitlines()[0], "install Pango, as WeasyPrint's own pages say") from error


def pdf_of(page: str) -> bytes:
    """Return the PDF of a page that needs no other file; raises as ``require_pdf``.

    It is tagged for screen readers. Nothing in it comes from the clock.
    """
    require_pdf()
    import weasyprint

    return bytes(weasyprint.HTML(string=page).write_pdf(pdf_tags=True))


def _refused(found: str, cure: str) -> AotfLabError:
    return AotfLabError(
        "a report in PDF needs WeasyPrint",
        found=Said(found),
        allowed="a name that ends in .pdf where it is installed, in .html anywhere",
        cure=f"{cure}, or write .html and print it from a browser",
    )
