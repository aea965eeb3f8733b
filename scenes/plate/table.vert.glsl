in vec3 at_mm;
in vec3 normal;
in vec2 material_shade;
out vec3 at;
out vec3 n;
out vec2 ms;
void main() {
    at = at_mm;
    n = normal;
    ms = material_shade;
    gl_Position = clip_from_table * vec4(at_mm, 1.0);
}
