"""Uploads that resume: a tus 1.0.0 server (https://tus.io/protocols/resumable-upload).

Core, creation, creation-with-upload, expiration, checksum and termination. A recording comes in
pieces, over as many connections as it takes, and becomes a clip by the same rules as one that was
sent by the plain form.

* ``protocol`` reads and writes tus's headers;
* ``partial`` is the file on the bench that grows, and its lock;
* ``services`` changes rows and files together; ``access`` says whose upload it is;
* ``views`` are the addresses.

**The offset is what was synced.** The row's ``offset_bytes`` is raised only after the file's bytes
were fsynced, every few megabytes or seconds; what lies in the file beyond it is cut off before the
next byte is written. So HEAD tells the truth after any kill, and after a loss of power.
"""
