"""One module a page: a router here, a template of the same name in ``templates``.

To add a page, write ``pages/<noun>.py`` with a module-level ``router``, and
``templates/<noun>.html``; it is found by itself.
"""

from __future__ import annotations
