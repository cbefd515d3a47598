"""``translate`` and ``blocktranslate`` as Django has them, settled when a template is compiled.

Django looks each sentence up anew for every page, which on a page of a hundred sentences is a
large share of its time. While the studio has one language, what a template says in it is known
when the template is read, and then costs no more than words that stand there. With a second
language, and for plurals, Django's own nodes are used.
"""

import re

from django.conf import settings
from django.template import Context, Library
from django.template.base import Node, NodeList, Parser, TextNode, Token, VariableNode
from django.templatetags import i18n
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import get_language, gettext, override

from studio.accounts import script_words

register = Library()

_PLACE = re.compile(r"%\((\w+)\)s")


def is_settled() -> bool:
    """Whether there is one language alone, so that a sentence is known without asking whose."""
    return not settings.USE_I18N or len(settings.LANGUAGES) == 1


@register.simple_tag
def language_read() -> str:
    """Whose words the page has, for its ``lang``: ``en``."""
    return (get_language() or settings.LANGUAGE_CODE).partition("-")[0]


@register.simple_tag
def words_of_scripts() -> SafeString:
    """What the page's scripts say, where it is not in the studio's first language."""
    found = ((address,) for address in script_words.addresses())
    return format_html_join("", '<script src="{}"></script>', found)


def said(words: str) -> str:
    """A sentence in the studio's one language."""
    with override(settings.LANGUAGE_CODE):
        return gettext(words)


def pieces(words: str) -> list[str]:
    """``about %(this)s here`` as ``about ``, ``this``, `` here``: names at the odd places."""
    found = _PLACE.split(words)
    return [text if at % 2 else text.replace("%%", "%") for at, text in enumerate(found)]


class Sentence(Node):
    """Words and values in the order of the studio's language."""

    def __init__(self, nodelist: NodeList) -> None:
        self.nodelist = nodelist

    def render(self, context: Context) -> str:
        return self.nodelist.render(context)


@register.tag("translate")
@register.tag("trans")
def translate(parser: Parser, token: Token) -> Node:
    """A sentence without values."""
    node = i18n.do_translate(parser, token)
    wanted = node.filter_expression
    plain = wanted.var.literal is not None and not wanted.filters
    if not is_settled() or not plain or node.noop or node.asvar or node.message_context:
        return node
    with override(settings.LANGUAGE_CODE):
        return TextNode(node.render(Context()))


@register.tag("blocktranslate")
@register.tag("blocktrans")
def blocktranslate(parser: Parser, token: Token) -> Node:
    """A sentence with values."""
    node = i18n.do_block_translate(parser, token)
    if not is_settled() or node.plural or node.asvar or node.message_context:
        return node
    words, _ = node.render_token_list(node.singular)
    nodes = NodeList()
    for at, piece in enumerate(pieces(said(words))):
        if at % 2:
            value = node.extra_context.get(piece) or parser.compile_filter(piece)
            nodes.append(VariableNode(value))
        elif piece:
            nodes.append(TextNode(piece))
    return Sentence(nodes)
