in vec3 at;
in vec3 n;
in vec2 ms;
out vec4 colour;
uniform vec3 cloth_shade;
void main() {
    colour = vec4(cloth_shade, ms.y);
}
