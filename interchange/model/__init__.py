"""The open form: sessions, manifests, rule sets, questions, as pydantic models."""
