// Starts the API page on this server's own document, and asks no other server whether the document is sound.
window.SwaggerUIBundle({ url: "/openapi.json", dom_id: "#api", deepLinking: true, validatorUrl: null });
