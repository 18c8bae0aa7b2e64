// Shows the contract of this service, read from this service and from nowhere else.
addEventListener("load", () => {
  window.SwaggerUIBundle({
    url: "/openapi.json",
    dom_id: "#contract",
    validatorUrl: null,
    deepLinking: false,
    docExpansion: "list",
    defaultModelsExpandDepth: 0,
    tagsSorter: "alpha",
  });
});
