-- What was added by mistake can be taken away again, as long as nothing refers to it: the foreign keys see to that too.
grant delete on milestone to caselot_runtime;
