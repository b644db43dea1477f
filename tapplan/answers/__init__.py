"""What each verb answers: frozen values of named, typed columns, and the sentences that go with them.

One module an answer. Screen, JSON, CSV, Markdown, page and notebook are readers of these values.
"""
