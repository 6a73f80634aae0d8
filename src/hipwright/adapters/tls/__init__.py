"""Certificates under which the server may be reached from other machines."""

from hipwright.adapters.tls.certificates import Certificate, own_certificate, read_certificate

__all__ = ["Certificate", "own_certificate", "read_certificate"]
