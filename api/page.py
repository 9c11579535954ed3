"""The description as a page for people: no script, nothing from the network."""

from __future__ import annotations

import base64
import hashlib
import json
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from .problems import KINDS

FRAMED_BY_NONE = "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
_STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60rem; margin: 2rem auto; padding: 0 1rem;
  color: #1c1c1c; background: #fff }
code, pre { font-family: ui-monospace, monospace; font-size: .9rem }
pre { background: #f3f3f0; padding: .7rem; overflow: auto; max-height: 24rem }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; vertical-align: top; padding: .25rem .6rem .25rem 0;
  border-bottom: 1px solid #ddd }
h2 { margin-top: 2.5rem; border-bottom: 2px solid #1c1c1c } h3 { margin-top: 1.8rem }
summary { cursor: pointer }
"""
_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
POLICY = f"default-src 'none'; style-src 'sha256-{_HASH}'; {FRAMED_BY_NONE}"
_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{{ info.title }} API {{ info.version }}</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>{{ style }}</style></head><body>
<h1>{{ info.title }} API {{ info.version }}</h1>
<p>{{ info.description }}</p>
<p>Begin with <a href="/docs">ten lines and an example</a>.
For programs: <a href="/openapi.json">/openapi.json</a> (OpenAPI 3.1).
Limits: <a href="/v1">/v1</a>.</p>
<nav><ul>{% for tag in tags %}<li><a href="#{{ tag }}">{{ tag }}</a></li>{% endfor %}
<li><a href="#schemas">schemas</a></li><li><a href="#problems">problems</a></li></ul></nav>
{% for tag, operations in tags.items() %}
<h2 id="{{ tag }}">{{ tag }}</h2>
{% for path, method, one in operations %}
<h3 id="{{ one.operationId }}"><code>{{ method.upper() }} {{ path }}</code></h3>
<p>{{ one.summary }}{% if not one.security %} Needs no token.{% endif %}</p>
{% if one.parameters %}<table><tr><th>Parameter</th><th>In</th><th>Allowed</th></tr>
{% for p in one.parameters %}<tr><td><code>{{ p.name }}</code></td><td>{{ p["in"] }}</td>
<td><code>{{ p.schema|json }}</code></td></tr>{% endfor %}</table>{% endif %}
{% if one.requestBody %}<p>Body: {% for media, body in one.requestBody.content.items() %}
<code>{{ media }}</code>{% if body.schema["$ref"] %} <a href="#{{ body.schema["$ref"]|name }}">
{{ body.schema["$ref"]|name }}</a>{% else %} with
<code>{{ body.schema.properties|join(", ") }}</code>{% endif %}
{{ "; or " if not loop.last }}{% endfor %}</p>{% endif %}
<table><tr><th>Status</th><th>Meaning</th></tr>
{% for status, given in one.responses.items() %}<tr><td>{{ status }}</td><td>{{ given.description }}
{% for media, body in (given.content or {}).items() if "problem" not in media %}
<br><code>{{ media }}</code>{% if body.schema["$ref"] %} <a href="#{{ body.schema["$ref"]|name }}">
{{ body.schema["$ref"]|name }}</a>{% endif %}{% endfor %}</td></tr>{% endfor %}</table>
{% endfor %}{% endfor %}
<h2 id="schemas">schemas</h2>
{% for name, schema in schemas.items() %}
<details id="{{ name }}"><summary><code>{{ name }}</code>
{{ schema.description or "" }}</summary><pre>{{ schema|indented }}</pre></details>{% endfor %}
<h2 id="problems">problems</h2>
<table><tr><th>Kind</th><th>Status</th><th>Title</th><th>What to do</th></tr>
{% for name, kind in problems.items() %}<tr id="problem-{{ name }}"><td><code>{{ name }}</code></td>
<td>{{ kind.status }}</td><td>{{ kind.title }}</td><td>{{ kind.advice }}</td></tr>{% endfor %}
</table>
</body></html>
"""


def page(document: dict[str, Any]) -> str:
    """An OpenAPI document as HTML."""
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.filters["json"] = lambda value: json.dumps(value, ensure_ascii=False)
    environment.filters["indented"] = lambda value: json.dumps(value, indent=1, ensure_ascii=False)
    environment.filters["name"] = lambda ref: ref.rsplit("/", 1)[-1]
    tags: dict[str, list[tuple[str, str, Any]]] = {}
    for path, methods in document["paths"].items():
        for method, one in methods.items():
            tags.setdefault(one["tags"][0], []).append((path, method, one))
    return environment.from_string(_PAGE).render(
        style=Markup(_STYLE),
        info=document["info"],
        tags=tags,
        schemas=document["components"]["schemas"],
        problems=KINDS,
    )
