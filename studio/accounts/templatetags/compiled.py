"""A part of a page from a template of the quicker kind."""

from django import template
from django.utils.safestring import SafeString

from studio.accounts.compiled import rendered

register = template.Library()


@register.simple_tag(takes_context=True)
def compiled(context: template.Context, name: str) -> SafeString:
    """``{% compiled "review/waiting_groups.html" %}``: with all that the page knows here."""
    return rendered(name, context.flatten())
