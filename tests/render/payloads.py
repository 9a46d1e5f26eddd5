"""Sixty hostile pieces of template: attribute walks, bombs, escapes from escaping, other engines' marks.

Gathered from the documentation of Jinja's sandbox and from general knowledge of template injection; written
here afresh. Each is tried as a template file and as a value that a customer typed.
"""

from __future__ import annotations

PAYLOADS = (
    # arithmetic that shows whether anything is evaluated
    "{{ 7*7 }}", "{{ 7*'7' }}", "{{ 7-7 }}", "{{ 7//7 }}", "{{ 7**7 }}", "{{ -7 }}", "{{ 7 ~ 7 }}",
    # attribute walks to the interpreter
    "{{ ''.__class__ }}", "{{ ''.__class__.__mro__ }}", "{{ ().__class__.__base__.__subclasses__() }}",
    "{{ shop.__class__ }}", "{{ shop['__class__'] }}", "{{ shop|attr('__class__') }}", "{{ shop.name.__add__ }}",
    "{{ person.name.format }}", "{{ '{0.__class__}'.format(shop) }}", "{{ '%s'|format(shop) }}",
    "{{ self }}", "{{ self.__init__.__globals__ }}", "{{ self._TemplateReference__context }}",
    "{{ loop }}", "{{ caller() }}", "{{ super() }}", "{{ varargs }}",
    # globals that Jinja or web frameworks hand out
    "{{ config }}", "{{ request.application }}", "{{ g }}", "{{ url_for('x') }}", "{{ get_flashed_messages() }}",
    "{{ range(10**9) }}", "{{ lipsum.__globals__['os'].popen('id').read() }}", "{{ cycler.__init__ }}",
    "{{ joiner() }}", "{{ namespace(a=1).a }}", "{{ dict(a=1) }}", "{{ debug }}",
    # bombs
    "{{ 'a' * 10**9 }}", "{% for a in range(10**9) %}{% endfor %}", "{{ 'a'|center(10**9) }}",
    "{% for a in devices %}{% for b in devices %}{% for c in devices %}x{% endfor %}{% endfor %}{% endfor %}",
    "{% for a in devices recursive %}{{ loop(devices) }}{% endfor %}", "{% include 'en/ready/body.txt' %}",
    "{% macro m() %}{{ m() }}{{ m() }}{% endmacro %}{{ m() }}", "{{ [[]]*10**8 }}", "{{ 'ab'|wordwrap(1) }}",
    # changes and escapes from escaping
    "{% set shop = 1 %}{{ shop }}", "{{ devices.append(1) }}", "{{ devices.pop() }}", "{% do devices.clear() %}",
    "{{ fault|safe }}", "{% autoescape false %}{{ fault }}{% endautoescape %}", "{% with a = 1 %}{{ a }}{% endwith %}",
    "{% import 'en/_parts/hello.txt' as x %}{{ x }}", "{% extends shop.name %}", "{% include '../../words/en.toml' %}",
    "{% filter upper %}x{% endfilter %}",
    # marks of other engines must stay text
    "${7*7}", "#{7*7}", "<%= 7*7 %>", "{7*7} %(name)s {shop.name} $name",
)  # fmt: skip
