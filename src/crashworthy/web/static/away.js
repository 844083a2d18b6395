// At the sign-in page the kept pages of whoever was here go; the outbox stays, it may hold entries to be sent.
if ('caches' in globalThis) caches.delete('pages');
