"""The long work on a clip: examining it, listening to it, making what is played.

``stages`` says which may be worked on, sends them to their queue and publishes results;
``examination`` is the first look at a recording, ``renditions`` the listening and the copies that
are played; ``rehearing`` has clips of an earlier engine heard anew; ``availability`` says whether a
listener is at work.
"""
