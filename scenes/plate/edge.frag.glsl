#ifdef GL_ES
in vec2 across_w;
#define across (across_w.x / across_w.y)
#else
noperspective in float across;
#endif
void main() {
    colour = vec4(surface(), 1.0 - abs(across));
}
